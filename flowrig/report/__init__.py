"""Results for people: terminal text, JSON, CSV."""
