"""Evidence in, candidate readings out: numbers, units, phrases, the running context, corrections and doubts."""
