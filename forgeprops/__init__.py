"""forgeprops: how hard and strong a forged iron head comes out, and how far its hosel will bend."""
