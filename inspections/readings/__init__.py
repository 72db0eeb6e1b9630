"""Recording readings and what an examination says."""
