"""The commands of the command line: each parses its words and gives back its text."""
