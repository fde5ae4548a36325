"""The command line: one file a command, and `main`, which turns every ending into a clear line and an exit status."""
