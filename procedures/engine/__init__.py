"""What a procedure runs on: the bench it calls, and the runner that journals and resumes it."""
