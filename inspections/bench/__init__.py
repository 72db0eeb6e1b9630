"""The pages of the Bench, live and without a network."""
