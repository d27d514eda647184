"""The job book: the journal that only grows, the fold from journal to job, questions, answers and the report."""
