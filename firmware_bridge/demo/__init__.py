"""For trials without a store: an invented bay with its controller, and the demo."""
