"""The crash harness: the real daemon killed at random instants over a real SMTP server, and a count of what arrived."""
