"""The crash harness: the real daemon killed at random instants over a real SMTP server, then a count of what arrived."""
