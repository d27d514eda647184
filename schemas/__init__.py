"""What a job, evidence, reading, doubt, question, finding, sheet and appliance are. Uses nothing else of ours."""
