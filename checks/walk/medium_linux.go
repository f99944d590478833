package walk

func mediumOf(string) medium { return unknownMedium }
