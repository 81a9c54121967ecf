"""Fields that check themselves: descriptions, curves, and their form in a study file."""
