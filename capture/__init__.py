"""Sound and pictures in, evidence out: what was heard and seen, where, when and how sure."""
