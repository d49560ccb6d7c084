"""Pure functions and frozen values: needle, lead, X-ray."""
