"""What several tests build on; tests themselves have no package."""
