"""What people are asked for on the pages of reminders."""
