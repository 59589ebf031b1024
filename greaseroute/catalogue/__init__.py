"""What a machine type is: links, postures, joints, outline."""
