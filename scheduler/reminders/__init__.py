"""Reminders: from verdicts to messages, with cadence, quiet hours and digest."""
