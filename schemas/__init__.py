"""What a job, its evidence, readings, doubts, questions and findings are; the sheets and appliance files as data."""
