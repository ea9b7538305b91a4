"""The page that a customer reads."""
