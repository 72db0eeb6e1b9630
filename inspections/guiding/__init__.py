"""Guides: publishing, drafts, what differs, adopting a revision, changing a variant."""
