"""Textual widgets that put drawn rows on the terminal."""
