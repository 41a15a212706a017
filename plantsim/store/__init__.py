"""Finished runs: their shape in memory, and their folders on disk."""
