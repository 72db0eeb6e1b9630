"""The limit bar and the small pictures of a build sheet, under one name for the rooms of the bench."""

from shop.bars import limit_bar
from shop.pictures import bolt_picture, float_picture, plug_picture

__all__ = ["bolt_picture", "float_picture", "limit_bar", "plug_picture"]
