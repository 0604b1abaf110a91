"""The local page: what people may look at, and never steer from."""
