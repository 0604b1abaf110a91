"""What goes over the broker: messages, topics, the link, and the rules of who receives."""
