"""From readings to findings and verdicts. Pure."""
