"""Units bought to be stripped, at the bench."""
