"""How a season goes against its plan: healing, cooling, dormancy, warm-up, the trucks out."""
