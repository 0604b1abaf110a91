"""One description of a bay: its file, its checks, a starter to fill in."""
