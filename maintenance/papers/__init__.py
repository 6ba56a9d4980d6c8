"""What the crew takes along on paper."""
