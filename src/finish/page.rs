//! The sheet of paper that reports are printed on: a title and a body in, one HTML document out
//! that needs no network, no script and no font of its own.

/// Styles: warm paper, dark ink; red, teal and ochre are left to the pens of the pictures.
const STYLE: &str = "
:root{--paper:#f4efe4;--sheet:#fcf9f1;--grid:#e4dccc;--ink:#20242a;--faded:#685f50;--red:#b62d1e;--ochre:#926208}
*{box-sizing:border-box}
body{margin:0;background:var(--paper);color:var(--ink);font:15px/1.5 system-ui,'Segoe UI',Roboto,'Helvetica Neue',sans-serif}
main{max-width:1240px;margin:0 auto;padding:2rem 1.25rem 3rem}
header{border-bottom:2px solid var(--ink);margin-bottom:1.25rem}
h1{font-weight:400;font-size:2rem;margin:0 0 .25rem}
h1 small{font-size:1rem;color:var(--faded);margin-left:.75rem}
h2{font-weight:600;font-size:1rem;margin:2rem 0 .5rem}
.lead{font-size:1.1rem;max-width:60em}
figure{margin:0;overflow-x:auto}
figure svg{display:block;width:100%;height:auto}
figure.song svg{min-width:48rem}
table{border-collapse:collapse;font-variant-numeric:tabular-nums}
th{font-weight:400;text-align:left;color:var(--faded)}
td{text-align:right}
th,td{padding:.15rem .75rem .15rem 0;border-bottom:1px solid var(--grid);vertical-align:top}
thead th{text-align:right}
thead th:first-child{text-align:left}
td.unit{text-align:left;color:var(--faded)}
tr.chosen td{font-weight:600}
.notes{padding-left:1.1rem;max-width:60em}
.notes li{margin:.3rem 0}
.pair{display:grid;grid-template-columns:minmax(26rem,1fr) minmax(30rem,1.5fr);gap:0 2.5rem}
@media (max-width:66rem){.pair{display:block}}
.recall{columns:18rem;column-gap:2.5rem}
.recall table{width:100%;break-inside:avoid;margin-bottom:1rem}
.recall caption{text-align:left;font-weight:600}
.recall td,.recall th{color:var(--faded)}
.recall .moved td,.recall .moved th{color:var(--ink);font-weight:600}
.files td{text-align:left}
a{color:inherit}
code{font:12px/1.4 ui-monospace,Consolas,monospace;color:var(--faded);overflow-wrap:anywhere}
.tag{margin:.15rem 0}
article{border-top:2px solid var(--ink);margin-top:3rem}
footer{margin-top:2.5rem;border-top:1px solid var(--grid);color:var(--faded);font-size:.85rem}
@media print{body{background:#fff}}
";

/// The document. `by` stands behind the heading in smaller letters.
pub fn page(title: &str, heading: &str, by: Option<&str>, body: &str) -> String {
    let by = by.map_or(String::new(), |by| format!("<small>{}</small>", escape(by)));
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>{}</title>\n<link rel=\"icon\" href=\"data:,\">\n<style>{STYLE}</style>\n</head>\n<body>\n<main>\n\
         <header><h1>{}{by}</h1></header>\n{body}\
         <footer><p>Lintel {}. Loudness after ITU-R BS.1770-5 and EBU Tech 3341, 3342; every \
         file was read again and its samples compared. The delivery's own specification and local rules come first.</p></footer>\n\
         </main>\n</body>\n</html>\n",
        escape(title),
        escape(heading),
        env!("CARGO_PKG_VERSION")
    )
}

/// Text that may stand in HTML.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out += "&amp;",
            '<' => out += "&lt;",
            '>' => out += "&gt;",
            '"' => out += "&quot;",
            c => out.push(c),
        }
    }
    out
}

/// An SVG document as a part of a page: without its XML heading.
pub fn inline(svg: &str) -> &str {
    svg.find("<svg").map_or(svg, |at| &svg[at..])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_song_cannot_smuggle_markup_in() {
        let page = page("a", "<script>alert(\"x\")</script> & co", Some("<script>"), "");
        assert!(!page.contains("<script"));
        assert!(page.contains("&lt;script&gt;alert(&quot;x&quot;)&lt;/script&gt; &amp; co"));
    }
}
