"""Weather: pure array functions over stations and days, with the published numbers they need in ``facts``."""
