"""trend."""
