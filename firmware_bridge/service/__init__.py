"""The service: one loop that owns all state, and the process around it."""
