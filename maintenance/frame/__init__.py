"""What the rooms of upkeep share on their pages: fields of forms, helpers of requests."""
