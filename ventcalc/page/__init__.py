"""The page for people who plan a bay without writing a file; on this machine only."""
