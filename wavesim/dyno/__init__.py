"""At the dynamometer: is a measured difference real, and how loud is an exhaust."""
