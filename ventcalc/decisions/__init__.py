"""Questions asked every hour."""
