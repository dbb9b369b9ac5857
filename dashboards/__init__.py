"""The pages the monitor serves: a Flask application, one folder per page."""
