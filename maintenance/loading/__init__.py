"""A mill's files: read, checked row by row, and written all or nothing."""
