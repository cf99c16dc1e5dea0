//! Plain values of a type: what a function may return without having looked at anything.

use quote::ToTokens;
use syn::{GenericArgument, PathArguments, ReturnType, Type, TypePath};

/// Expressions of the return type; none where no plain one is known.
pub fn values_returned(output: &ReturnType) -> Vec<String> {
    match output {
        ReturnType::Default => vec!["()".to_owned()],
        ReturnType::Type(_, ty) => values(ty),
    }
}

fn values(ty: &Type) -> Vec<String> {
    match ty {
        Type::Paren(inner) => values(&inner.elem),
        Type::Tuple(tuple) => {
            let first: Option<Vec<String>> = (tuple.elems.iter())
                .map(|ty| values(ty).first().map(|v| format!("{v}, ")))
                .collect();
            let all = first.map(|v| format!("({})", v.concat()));
            all.into_iter().collect()
        }
        Type::Array(array) => {
            let first = values(&array.elem).into_iter().next();
            let length = array.len.to_token_stream();
            first
                .map(|v| format!("[{v}; {length}]"))
                .into_iter()
                .collect()
        }
        Type::Path(path) => of_path(path),
        _ => Vec::new(),
    }
}

fn of_path(path: &TypePath) -> Vec<String> {
    let Some(last) = path.path.segments.last() else {
        return Vec::new();
    };
    let owned = |values: &[&str]| values.iter().map(|v| (*v).to_owned()).collect();
    match last.ident.to_string().as_str() {
        "bool" => owned(&["true", "false"]),
        "f32" | "f64" => owned(&["0.0", "1.0"]),
        "u8" | "u16" | "u32" | "u64" | "usize" | "i8" | "i16" | "i32" | "i64" | "isize" => {
            owned(&["0", "1"])
        }
        "Option" => owned(&["None"]),
        "Vec" | "String" | "HashMap" | "HashSet" | "BTreeMap" | "BTreeSet" => {
            owned(&["Default::default()"])
        }
        "Result" => match &last.arguments {
            PathArguments::AngleBracketed(of) => match of.args.first() {
                Some(GenericArgument::Type(ty)) => {
                    values(ty).iter().map(|v| format!("Ok({v})")).collect()
                }
                _ => Vec::new(),
            },
            _ => Vec::new(),
        },
        _ => Vec::new(),
    }
}
