"""Reports of finished attempts."""
