"""What a person asks for: records in, results out."""
