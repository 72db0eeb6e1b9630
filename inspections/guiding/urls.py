"""Addresses of the guides, in the Office."""

from django.urls import path, register_converter
from django.urls.converters import StringConverter

from inspections.guiding import draft_views
from inspections.guiding import views as guide_views


class OneEntry(StringConverter):
    """The two tables that are one entry: the head of a guide and its drawing."""

    regex = "guide|drawing"


register_converter(OneEntry, "one_entry")

urlpatterns = [
    path("", guide_views.guides, name="guides"),
    path("<str:code>", guide_views.family, name="guide_family"),
    path("<str:code>/<int:number>", guide_views.revision, name="guide_revision"),
    path("<str:code>/<int:number>.toml", guide_views.revision_file, name="guide_revision_file"),
    path("<str:code>/draft", draft_views.draft, name="guide_draft"),
    path("<str:code>/draft.toml", draft_views.draft_file, name="guide_draft_file"),
    path("<str:code>/draft/publish", draft_views.draft_publish, name="guide_draft_publish"),
    path("<str:code>/draft/<one_entry:table>", draft_views.draft_plain, name="guide_draft_plain"),
    path("<str:code>/draft/<slug:table>/new", draft_views.draft_new, name="guide_draft_new"),
    path("<str:code>/draft/<slug:table>/<str:entry>", draft_views.draft_entry, name="guide_draft_entry"),
]
