"""The command line as a person uses it, right and wrong, by exit status and text."""
