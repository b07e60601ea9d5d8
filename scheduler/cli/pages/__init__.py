"""Documents for people to keep or hand on: one model, rendered for the terminal, as Markdown and as HTML."""
