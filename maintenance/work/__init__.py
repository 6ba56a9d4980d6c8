"""A job from its start to the sign-off."""
