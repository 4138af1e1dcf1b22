"""From records to a shortlist: the stages, their order and their schedule."""
