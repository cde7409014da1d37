// Requests to the bench: a JSON body out, a JSON body in. A refusal is thrown with the sentence that the bench gave.

export class Refusal extends Error {
  constructor(status, detail) {
    super(detail);
    this.status = status;
  }
}

async function answered(response) {
  const document = await response.json().catch(() => ({}));
  if (!response.ok) throw new Refusal(response.status, document.detail ?? `The bench refused (${response.status}).`);
  return document;
}

async function reached(path, options) {
  try {
    return await fetch(path, { cache: "no-store", ...options });
  } catch {
    throw new Refusal(0, "The bench cannot be reached. Nothing was changed.");
  }
}

export async function look(path) {
  return answered(await reached(path, {}));
}

export async function act(path, body) {
  const headers = { "Content-Type": "application/json" };
  return answered(await reached(path, { method: "POST", headers, body: JSON.stringify(body) }));
}
