"""Documents: a pack, a season, a calendar, as text, Markdown, HTML or pictures."""
