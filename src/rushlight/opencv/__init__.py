"""The one place where OpenCV is called; every answer leaves in a fixed shape."""
