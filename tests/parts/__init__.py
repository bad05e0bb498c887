"""Real parts tests run against: broker, worker, SMTP server, browser, a shop."""
