"""What people type on the planning side, a file per noun."""
