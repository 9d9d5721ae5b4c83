"""The day file, the plan of a day as steps, and as a folder."""
