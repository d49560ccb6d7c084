"""What a person did, as data. Knows no clock and no screen."""
