"""What makes and trains models; nothing here is imported at run time."""
