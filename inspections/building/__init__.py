"""The build sheet, rework and what was built."""
