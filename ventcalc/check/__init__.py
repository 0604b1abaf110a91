"""May this bay be filled to this height, and what binds?"""
