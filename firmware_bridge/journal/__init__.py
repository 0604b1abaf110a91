"""What is stored, and what is proven: readings, events, and the audit log that only grows."""
