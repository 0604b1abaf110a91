"""All bays of a folder: how each stands today, and what its season was."""
