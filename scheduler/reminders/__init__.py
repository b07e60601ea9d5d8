"""Reminders: what to say when. Opening and settling follow from verdicts; here are cadence, quiet hours and digest."""
