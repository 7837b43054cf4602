// What the page asks the bench: each question one function; a refusal becomes an Error with one line for the person.

async function answer(response) {
  if (response.ok) return response;
  let words = `the bench answered ${response.status}`;
  const text = await response.text();
  try {
    words = JSON.parse(text).error ?? words;
  } catch {
    if (text.length && text.length < 200) words = text.trim();
  }
  throw new Error(words);
}

const get = async (path) => answer(await fetch(path));
const post = async (path, body) =>
  answer(await fetch(path, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) }));
const of = (name) => `/api/dockets/${encodeURIComponent(name)}`;

export const dockets = async () => (await get("/api/dockets")).json();
export const overview = async (name) => (await get(of(name))).json();
export const assay = async (name, order) => (await post(`${of(name)}/assay`, order)).json();
export const decide = async (name, choice) => (await post(`${of(name)}/decisions`, choice)).json();
export const fileAddress = (name, file) => `${of(name)}/files/${encodeURIComponent(file)}`;

export const capture = async (name, wanted) => (await post(`${of(name)}/capture`, wanted)).json();
export const captured = async (name) => (await get(`${of(name)}/capture`)).json();
export const resume = async (name) => (await post(`${of(name)}/capture/resume`, {})).json();
export const stop = async (name) => (await post(`${of(name)}/capture/stop`, {})).json();

export async function bytes(name, source, first, count) {
  const query = new URLSearchParams({ source, first, count });
  const content = new Uint8Array(await (await get(`${of(name)}/bytes?${query}`)).arrayBuffer());
  return { value: content.subarray(0, count), state: content.subarray(count) };
}

export const code = async (name, image) => (await get(`${of(name)}/code?${new URLSearchParams({ image })}`)).json();

export async function observations(name, image, offset) {
  return (await get(`${of(name)}/observations?${new URLSearchParams({ image, offset })}`)).json();
}

export async function lines(name, file, first, count) {
  return (await get(`${of(name)}/lines?${new URLSearchParams({ file, first, count })}`)).json();
}
