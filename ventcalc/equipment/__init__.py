"""What moves and conditions the air."""
