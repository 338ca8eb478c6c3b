"""What people see: dialogue, drawings, the page that follows, the printed list."""
