"""The quality bench: sampling, screens, defects by published schemes, and how sure a grade is."""
