"""CASES: invented patients as validated, human-editable files."""
