"""The command line: one module for each command, none of which imports numbers before it has work to do."""
