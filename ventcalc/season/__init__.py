"""A bay through a winter: run, steps, record, key figures."""
