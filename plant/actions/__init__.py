"""What users can do to the plant: each act with its permission, transaction and entry in the history."""
