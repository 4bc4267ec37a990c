"""What the chain from the finding to the phone endures."""
