"""Pages for the reliability engineer, the fleet manager and finance."""
