"""Pure statistics and decisions: arrays and tables in, frozen results out."""
