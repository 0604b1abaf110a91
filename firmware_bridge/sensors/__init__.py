"""What a controller's sensors say, and whether it can be believed."""
