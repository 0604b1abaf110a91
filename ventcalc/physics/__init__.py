"""How air, tubers and walls behave."""
