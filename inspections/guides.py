"""Guides: checking a document before it is published, and publishing it."""

from inspections.checking import check_document
from inspections.shape import Problem

__all__ = ["Problem", "check_document"]
