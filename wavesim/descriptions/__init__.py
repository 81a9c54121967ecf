"""What the user says: pipes, parts, engine, exhaust, study, up to the assembled network."""
