"""Training desk: a trainee works an invented call (?desk=exercise), a trainer runs classes and writes scenarios (?desk=training)."""
