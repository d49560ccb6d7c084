"""Judges an attempt: measures taken from its log, and a rubric that turns them into points."""
