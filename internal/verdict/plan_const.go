package verdict

// planConfidence is the one-sided confidence of the scatter that plans and
// prices are made with: 80 %.
const planConfidence = 0.80
