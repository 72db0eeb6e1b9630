"""Photographs, answers in words and the examination report."""
