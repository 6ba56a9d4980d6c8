"""Function checks with their sittings and findings; defects; proof tests."""
