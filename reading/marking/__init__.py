"""Marking what a class handed in: hand readings against their photos, and the slip behind each."""
