"""Results as text, JSON, pages and drawings."""
