"""What people meet: the command line, the spoken conversation and the office page."""
