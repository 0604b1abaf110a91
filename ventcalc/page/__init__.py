"""The page for people who plan a bay without writing a file; on this machine only."""

HERE = "ventcalc.page"
"""Package that holds the page's templates and its style."""
