"""Questions asked before or about a whole season."""
